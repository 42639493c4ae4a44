"""The page: one HTML file in which a reader moves a setting and sees the simulation."""
