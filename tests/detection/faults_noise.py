"""Noise, where a sound comes from, and names, tags and time code."""
import subprocess

import numpy as np
import subprocess
