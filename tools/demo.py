"""Set up and run the main job on invented data.

python tools/demo.py [packcodec demo's arguments]
"""

import sys

from environment import prepare, run

if __name__ == "__main__":
    sys.exit(run(str(prepare("base,dataset")), "-m", "packcodec", "demo", *sys.argv[1:]))
