"""Geometry in: reading, repair, tooth anatomy, registration, skin and neck."""
