"""Every sentence a person reads, made last, from records, in the reader's units."""
