"""Records: one plain sealed file a visit, appended to as readings are accepted and readable for decades."""
