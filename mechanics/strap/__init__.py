"""Straps: the pull on a hook, toward a fixed point, along a fixed direction, or as the end of a taut band."""
