"""A menu file from end to end: in pieces, over processes or a cluster, into a folder that is whole or not there."""
