"""Every command in every form on every example, recorded: what a rebuild of the house may not change."""
