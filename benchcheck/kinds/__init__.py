"""Check types: one module a part kind, plus rail, supply and isolation; from a spec entry to its checks."""
