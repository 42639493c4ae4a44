"""The project as others get it: wheel, sdist, editable install, bare folder."""
