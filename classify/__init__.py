"""Metres, hertz, labels and causes: a track goes in, a reading comes out.

Knows nothing of video files or pages.
"""
