"""Trucks and their work: scenario and layout in, visits to aisles out."""
