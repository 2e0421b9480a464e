"""One module a command: `configure(parser)` and `run(args) -> int`. Imported when the command is called."""
