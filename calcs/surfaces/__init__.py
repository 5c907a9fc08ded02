"""How each calculation reads its document and writes its answer: parse, compute and format by subject."""
