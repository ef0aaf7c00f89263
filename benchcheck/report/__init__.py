"""Reports: what a person reads of a record, and the card to write readings on."""
