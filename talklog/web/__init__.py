"""The review page: play, correct, sign. Server-rendered; works without JavaScript."""
