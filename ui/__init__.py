"""Words and pictures: readings go in; sentences, pages and pictures come out.

Computes nothing itself.
"""
