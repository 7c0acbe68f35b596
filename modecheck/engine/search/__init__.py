"""The state graph, and each search over it."""
