"""Pages of HTML: the kiln sheet, and an answer in a notebook."""
