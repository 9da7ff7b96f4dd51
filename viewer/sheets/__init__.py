"""Papers for chair and bench, exactly 1:1: a page is a frozen list of lines, circles and texts in mm; then backends."""
