"""Adding logs from the browser: files received into the library's inbox, and imported by processes of their own."""
