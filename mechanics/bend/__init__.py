"""The bend: what brings the loaded line of force to its target, how sure it is, and what else would help."""
