"""One file a question, each a ratio to a floor measured in the same run."""
