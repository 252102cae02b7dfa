"""One module a revision; a released revision is never edited."""
