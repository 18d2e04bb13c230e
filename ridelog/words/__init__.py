"""Every sentence that results, reports, pages and commands print, one file a subject."""
