"""Straps: the pull on a hook, toward a fixed point or along a fixed direction."""
