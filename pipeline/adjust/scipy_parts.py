"""Loading this module loads the parts of scipy that an adjustment uses, which otherwise load when first used."""

import scipy.linalg
import scipy.sparse.csgraph
import scipy.special  # noqa: F401
