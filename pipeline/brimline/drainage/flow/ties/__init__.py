"""Which of equally steep neighbours receives: decided by the ground, never by scan order."""
