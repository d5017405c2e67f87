"""Task -> a BASIC program, one module a trait; `numbered` has what those with line numbers share."""
