"""The subcommands of `wetmount`, one module each; their work is imported when they run."""
