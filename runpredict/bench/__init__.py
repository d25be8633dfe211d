"""The bench page: plan a pot, load a firing, open the kiln, look back, from a phone or tablet."""
