"""Everything fired and planned, in one file that loses nothing."""
