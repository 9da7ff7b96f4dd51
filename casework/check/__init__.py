"""The check at the chair: where the line of force really runs, measured with the bow in the mouth."""
