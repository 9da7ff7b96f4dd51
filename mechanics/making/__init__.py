"""Making the bend at the bench: springback, the angle under the pliers, the order of bends."""
