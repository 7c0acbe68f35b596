"""The bundled models of our own: clean ones, and twins with one mistake each."""
