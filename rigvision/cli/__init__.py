"""Commands: parse, one library call, print."""
