"""Answers as words, pictures and sheets."""
