"""The local page: the whole work of a case in a browser on this machine. It draws and asks; it computes nothing."""
