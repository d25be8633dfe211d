"""The potter's tables: read, checked, put together, written."""
