"""The session conducts a visit: it asks in order, keeps what is accepted, and has each answer scored."""
