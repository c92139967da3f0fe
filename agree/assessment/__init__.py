"""The check of a claim: everything a report needs, put together."""
