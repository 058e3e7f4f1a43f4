// Which code is running, to the bit.
#pragma once

#include <string>

namespace sendworthy::base {

/// A name for the program and every library it was loaded with: their build ids, and for what carries none its path, size and
/// times. Two builds of one version differ in it, and so does one program with another codec library. Empty where a part
/// can be named neither way.
[[nodiscard]] const std::string& code_identity();

}  // namespace sendworthy::base
