"""Registration: one scan laid on another by landmarks, by shape, or by both; what cannot be laid is refused."""
