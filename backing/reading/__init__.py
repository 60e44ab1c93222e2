"""Other people's formats: one module a format, from text or bytes to a `Chart` that knows its places in the source."""
