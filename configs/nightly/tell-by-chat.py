#!/usr/bin/env python3
"""Posts what is told of a job to a chat: tell-by-chat.py FILE, whose one line is the address to post to.

Such an address lets everybody post who knows it, so it stands in a file that only the user may read.
"""

import json
import sys
from pathlib import Path
from urllib.request import Request, urlopen

told = json.load(sys.stdin)
address = Path(sys.argv[1]).read_text(encoding="utf-8").strip()
body = json.dumps({"text": f"{told['subject']}\n{told['text']}"}).encode()
with urlopen(Request(address, body, {"Content-Type": "application/json"}), timeout=20) as answer:
    print(answer.status, told["subject"])
