// Somebody else's program: writes a second of tone, has it checked by a rule set of its own, reads the sheet.
#include <sendworthy/catalog.h>
#include <sendworthy/check.h>
#include <sendworthy/render.h>
#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <fstream>
#include <string>

namespace {

void put(std::string& bytes, std::uint32_t value, int size) {
  for (int i = 0; i < size; ++i) bytes.push_back(static_cast<char>(value >> (8 * i) & 0xFF));
}

/// One second, mono, 48 kHz, 16 bits: 1 kHz at −6.02 dBFS peak.
bool write_tone(const std::string& path) {
  constexpr std::uint32_t kRate = 48000;
  std::string bytes = "RIFF";
  put(bytes, 36 + 2 * kRate, 4);
  bytes += "WAVEfmt ";
  put(bytes, 16, 4);
  put(bytes, 1, 2);
  put(bytes, 1, 2);
  put(bytes, kRate, 4);
  put(bytes, 2 * kRate, 4);
  put(bytes, 2, 2);
  put(bytes, 16, 2);
  bytes += "data";
  put(bytes, 2 * kRate, 4);
  for (std::uint32_t n = 0; n < kRate; ++n) {
    const double x = 0.5 * std::sin(2 * 3.14159265358979323846 * 1000 * n / kRate);
    put(bytes, static_cast<std::uint32_t>(std::lrint(32767 * x)), 2);
  }
  std::ofstream file(path, std::ios::binary);
  file << bytes;
  return static_cast<bool>(file.flush());
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2 || !write_tone(argv[1])) return 2;

  // The tone peaks at -6.02 dBFS: one rule lets it through, the other does not.
  const auto rules = sendworthy::parse_rule_set(R"(
[ruleset]
name = "tone"
title = "A tone"
purpose = "To try the installed library"

[[rule]]
id = "quiet-enough"
measure = "sample_peak"
fail_above = -6.0
why = "a test"
remedy = "none"
source = "definition"

[[rule]]
id = "much-quieter"
measure = "sample_peak"
fail_above = -7.0
why = "a test"
remedy = "none"
source = "definition"
)",
                                                "tone.toml", {}, sendworthy::catalog());
  if (!rules) {
    std::fprintf(stderr, "%s\n", sendworthy::to_string(rules.error()).c_str());
    return 3;
  }

  const sendworthy::Sheet sheet = sendworthy::check_files({argv[1]}, {*rules}, {});
  std::fputs(sendworthy::render_text(sheet, sendworthy::catalog()).c_str(), stdout);
  if (sheet.files.size() != 1 || sheet.verdict != sendworthy::Verdict::fail) return 4;
  int judged = 0;
  for (const sendworthy::Finding& finding : sheet.files[0].findings) {
    const auto wanted = finding.rule == "quiet-enough" ? sendworthy::Status::pass : sendworthy::Status::fail;
    if (finding.status != wanted) return 5;
    ++judged;
  }
  return judged == 2 && !sendworthy::version().empty() ? 0 : 6;
}
