"""The spring module between strap and hook: its force, how far the strap draws it out, and what posture does to it."""
