// Sounds of the Debian package sonic-pi-samples.
#pragma once

#include <string>
#include <vector>

namespace sendworthy::test {

/// The first channel of a sound, full scale ±1, at its own 44.1 kHz; read once. Throws std::runtime_error when it is missing.
[[nodiscard]] const std::vector<double>& packaged_sound(const std::string& name);

}  // namespace sendworthy::test
