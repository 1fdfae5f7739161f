-- Full-text search. The row number is that of the entry; ``machine`` holds the machine's key as
-- one word (m12 for the machine with number 12), so that a search can stay within a machine.

CREATE VIRTUAL TABLE note USING fts5 (
    machine, title, said, tokenize = 'unicode61 remove_diacritics 2'
);
