"""The face-bow as a wire: its records, its shape fitted to a patient, its bends, and the rigid bow under
load."""
