"""A whole menu: the same answers as one by one, every fault in its place, all files or none."""
