"""Generated text for training the extractor, kept apart from what people wrote."""
