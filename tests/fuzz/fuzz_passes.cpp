// Passes files from anybody: refused with words and a place, or read into lines that are written and read back the same.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "song/listening.h"
#include "song/passes.h"

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace sendworthy;
  const auto passes = song::parse_passes({reinterpret_cast<const char*>(data), size}, "fuzz/passes.jsonl");
  if (!passes) {
    require(passes.error().code == ErrorCode::rules && !passes.error().text.empty());
    return 0;
  }
  std::string again;
  for (const auto& line : passes->lines) {
    require(song::fault_of(line).empty());
    again += written(line);
  }
  const auto back = song::parse_passes(again, "again");
  if (again.size() < song::kLongestPassesLine) require(back && back->lines.size() == passes->lines.size() && back->lost == 0);

  static const auto kPlan = song::parse_plan("[song]\nmix = \"m\"\n[[question]]\nid = \"vocal\"\ntext = \"?\"\n", "fuzz/plan.toml");
  for (const auto& line : passes->lines) {
    const auto state = song::state_of(*kPlan, *passes, line.answer.audio, nullptr, nullptr);
    require(state.pass >= 1 && state.questions.size() == 1 && state.complete == !state.questions.front().open);
    // Nothing holds without a line that says so.
    require(!state.complete || (state.questions.front().last && again.find("\"holds\"") != again.npos));
    if (passes->lines.size() > 50) break;
  }
  return 0;
}
