"""Where the bow and the marks lie on the skin: lengths over it, the gap along each wire, a bow kept clear of it."""
