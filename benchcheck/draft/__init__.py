"""A first spec from a parts list and a list of nets: what they say as tables, what they do not as questions."""

from benchcheck.draft.write import Draft, draft_spec

__all__ = ["Draft", "draft_spec"]
