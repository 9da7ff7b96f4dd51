"""Centres of resistance: from stiffness, from anatomy, by the rule of thumb."""
