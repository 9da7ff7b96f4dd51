"""A face-bow that exists: centrelines, diameters, hooks and bends from a surface scan of it."""
