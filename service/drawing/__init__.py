"""A plan made visible: programs as text, sheet maps, travellers, labels.

Pure: a plan in, text or bytes out. It imports nothing of ours but :mod:`service.engine`.
"""
