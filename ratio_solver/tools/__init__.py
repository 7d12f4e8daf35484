"""One folder a command: what it computes, its report, its options."""
