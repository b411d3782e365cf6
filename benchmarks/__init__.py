"""Every timing that is quoted anywhere. Not part of the package.

The linear algebra runs on one thread here, as it does in the command.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
