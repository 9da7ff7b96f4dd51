"""What really moved between two scans of one patient, tooth by tooth, beside what the plan's line predicted."""
