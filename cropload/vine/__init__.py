"""The vine: plans, growth from buds to crop, load response, balance, frost."""
