"""Forecast feeds: how each is asked, and how its answer becomes the one normal form.

Everything a feed sends is taken for hostile: parsers return a whole, checked Forecast or raise FeedUnusable.
"""
