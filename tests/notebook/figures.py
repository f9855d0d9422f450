"""Reads figures in the text format of Prometheus from standard input with the parser of its own
Python library, and says of each family its kind and how many samples it has.

    curl -s http://127.0.0.1:9464/metrics | python tests/notebook/figures.py
"""

import sys

from prometheus_client.parser import text_string_to_metric_families

for family in text_string_to_metric_families(sys.stdin.read()):
    print(family.name, family.type, len(family.samples))
