"""One file a page: what it shows, made from what the provider hands over. No callback is defined here."""
