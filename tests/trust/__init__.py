"""Hostile files and broken machines: every door, every output."""
