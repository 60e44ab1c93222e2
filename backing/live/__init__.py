"""The running session: notes planned far ahead, samples barely ahead."""
