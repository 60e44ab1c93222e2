"""What is made of many tunes together: the printed book, the contents page, the album."""
