"""A plain-text chord chart goes in; a band track comes out."""
