"""Parts of pages: results in, components out. No callback, no data access."""
