"""From tables to chances: features, the rules of thumb, and what a log teaches."""
