"""Visits of a case: one line each, appended so that no crash can lose or double one; progress and what to look at."""
