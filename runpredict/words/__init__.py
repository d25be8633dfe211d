"""What a potter reads, in sentences and tables of text; nothing here draws."""
