"""Decodes Sparkplug B payloads (hex) with the classes that another project generated from the standard's own file."""

import json
import sys

from pysparkplug._protobuf import sparkplug_b_pb2

given = json.load(sys.stdin)
out = []
for text in given["payloads"]:
    payload = sparkplug_b_pb2.Payload()
    payload.ParseFromString(bytes.fromhex(text))
    metrics = []
    for metric in payload.metrics:
        value = metric.WhichOneof("value")
        metrics.append(
            {
                "name": metric.name,
                "datatype": metric.datatype,
                "historical": metric.is_historical,
                "null": metric.is_null,
                "value": None if value is None else getattr(metric, value),
                "kind": value,
                "timestamp": metric.timestamp,
            }
        )
    out.append({"seq": payload.seq if payload.HasField("seq") else None, "metrics": metrics})
json.dump(out, sys.stdout)
