#include "measure/surroundings.h"

#include <fmt/format.h>

#include "audio/file.h"
#include "audio/lossy_trip.h"
#include "base/code_identity.h"
#include "dsp/processor.h"
#include "measure/lossy.h"
#include "measure/name_checks.h"

namespace sendworthy::measure {

std::string common_surroundings(const std::vector<MeasureRequest>& requests, const std::atomic<bool>* stop) {
  const auto& code = base::code_identity();
  if (code.empty()) return {};
  return fmt::format("{}\n{}\n{}\n", code, dsp::processor_class(),
                     asks_for_a_program(requests) ? audio::aac_coder(stop) : std::string());
}

std::string surroundings_of(const std::string& path) {
  const auto side = name_side(file_name_of(path));
  const bool sister = side.side != 0 && audio::file_beside(path, side.other);
  return fmt::format("{}:{}\n{}\n", path.size(), path, sister ? "one of two" : "alone");
}

}  // namespace sendworthy::measure
