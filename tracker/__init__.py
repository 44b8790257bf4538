"""Pixels and seconds: a clip goes in, the path of the nock comes out.

Knows nothing of arrow physics, labels or causes.
"""
