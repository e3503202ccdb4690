"""Parts of the sheets that are large enough for a file of their own."""
