"""From chances to what a potter decides: the check, the look back, what to fire next."""
