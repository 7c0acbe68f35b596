"""A second reading of the language: slow, naive, sharing no code with product, engine or checks.

It works on the model with dictionaries and sets, straight from the sentences that define the
language, and is what the tests hold the tool against. Where it is dull it is meant to be.
"""
