"""Pictures: the pot and its wall, curves, what a log taught."""
