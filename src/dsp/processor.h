// Which kind of processor the kernels run on.
#pragma once

#include <cstdint>

namespace sendworthy::dsp {

/// Kernels sum in another order on another class of processor, which shows in the last digits. Equal numbers: equal sums.
[[nodiscard]] std::int64_t processor_class();

}  // namespace sendworthy::dsp
