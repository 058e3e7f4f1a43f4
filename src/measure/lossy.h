// Encoders run beside the other meters: one lane per codec and bit rate.
#pragma once

#include <memory>
#include <vector>

#include "measure/meter.h"

namespace sendworthy::measure {

/// A meter for each codec and bit rate that the requests name, each once; none where no rule asks. They publish to
/// Bus::lossy, and the module of true_peak_after_lossy reports.
[[nodiscard]] std::vector<std::unique_ptr<Meter>> lossy_lanes(const Setup& setup);

/// Whether one of the requests wants an encoder that is a program of its own.
[[nodiscard]] bool asks_for_a_program(const std::vector<MeasureRequest>& requests);

}  // namespace sendworthy::measure
