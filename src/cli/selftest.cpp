// sendworthy selftest: the published test signals, measured on this machine.
#include "check/selftest.h"

#include <sendworthy/check.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "cli/command.h"
#include "cli/json_text.h"
#include "cli/sheet_output.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "selftest",
      "selftest [options]",
      "Synthesises the published test signals (EBU Tech 3341 and 3342, ITU-R BS.1770) at 44.1, 48 and 96 kHz, measures "
      "them here, and prints what is expected, what was read, and what a second, independent meter reads.",
      {
          {"sendworthy selftest", "does this build measure right on this machine?"},
          {"sendworthy selftest --format json -o selftest.json", "the same as data"},
      },
      {
          "Exit codes: 0 every reading of ours lies within its tolerance; 1 one does not (the second meter decides "
          "nothing); 2 the call is wrong; 3 the output could not be written; 130 interrupted.",
      }};
  return kManual;
}

std::string padded(std::string_view text, int width) {
  return std::string(text) + std::string(static_cast<std::size_t>(std::max(width - base::columns(text), 0)), ' ');
}

std::string right(std::string_view text, int width) {
  return std::string(static_cast<std::size_t>(std::max(width - base::columns(text), 0)), ' ') + std::string(text);
}

std::string signed_text(double value) {
  // Sums such as -23.1 + 23 leave dust behind the last digit.
  const double rounded = std::round(value * 1000) / 1000;
  return (rounded < 0 ? "-" : "+") + base::shortest(std::abs(rounded));
}

/// "±0.1", "+0.2/-0.4"; the way the standards print it.
std::string tolerance(const SelftestRow& row) {
  if (!std::isfinite(row.lower) && !std::isfinite(row.upper)) return "-";
  if (!std::isfinite(row.lower)) return "<= " + base::fixed(row.upper, 1);
  if (!std::isfinite(row.upper)) return ">= " + base::fixed(row.lower, 1);
  const auto above = signed_text(row.upper - row.expected), below = signed_text(row.lower - row.expected);
  if (above.substr(1) == below.substr(1) && above[0] == '+') return "±" + above.substr(1);
  return above + "/" + below;
}

std::string table(const std::vector<SelftestRow>& rows, bool quiet) {
  constexpr int kSignal = 24, kQuantity = 15, kNumber = 8, kTolerance = 11;
  std::string text;
  std::string source;
  int rate = 0;
  std::size_t passed = 0;
  for (const auto& row : rows) {
    if (row.source != source || row.sample_rate != rate) {
      source = row.source;
      rate = row.sample_rate;
      text += (text.empty() ? "" : "\n") + source + ", " + base::shortest(rate / 1000.0) + " kHz\n";
      text += "  " + padded("signal", kSignal) + padded("quantity", kQuantity) + right("expected", kNumber + 1) +
              right("read", kNumber) + right("second", kNumber) + right("tolerance", kTolerance) + "\n";
    }
    if (row.passed) ++passed;
    const auto line = right(base::fixed(row.expected, 1), kNumber + 1) + right(base::fixed(row.read, 2), kNumber) +
                      right(row.second, kNumber) + right(tolerance(row), kTolerance);
    const auto names = base::columns(row.signal) < kSignal && base::columns(row.quantity) < kQuantity
                           ? padded(row.signal, kSignal) + padded(row.quantity, kQuantity)
                           : row.signal + ": " + row.quantity;
    text += row.passed ? "  " : "! ";
    if (base::columns(names) <= kSignal + kQuantity) {
      text += padded(names, kSignal + kQuantity) + line + "\n";
    } else {
      const auto lines = base::wrap(names, 78);
      for (std::size_t i = 0; i < lines.size(); ++i) text += (i > 0 ? "  " : "") + lines[i] + "\n";
      text += std::string(kSignal + kQuantity + 2, ' ') + line + "\n";
    }
  }
  if (quiet) text.clear();
  text += (quiet ? "" : "\n") + std::to_string(passed) + " of " + std::to_string(rows.size()) +
          " readings within tolerance";
  return text + (passed == rows.size() ? ".\n" : "; the others are marked with \"!\".\n");
}

std::string as_json(const std::vector<SelftestRow>& rows, bool passed) {
  JsonText json;
  json.open_object();
  json.member("schema", 1);
  json.member("version", version());
  json.member("passed", passed);
  json.key("rows");
  json.open_array();
  for (const auto& row : rows) {
    json.open_object();
    json.member("signal", row.signal);
    json.member("sample_rate", row.sample_rate);
    json.member("quantity", row.quantity);
    json.member("expected", row.expected);
    json.member("lower", row.lower);
    json.member("upper", row.upper);
    json.key("read");
    json.number(row.read, 3);
    json.member("second", row.second);
    json.member("unit", row.unit);
    json.member("source", row.source);
    json.member("passed", row.passed);
    json.close_object();
  }
  json.close_array();
  json.close_object();
  return json.finished();
}

}  // namespace

int run_selftest(const Words& words) {
  OutputOptions output;
  RunOptions run;
  Arguments arguments(manual());
  output.declare(arguments, {"text", "json"});
  output.declare_quiet(arguments);
  run.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "selftest");
  if (arguments.help_wanted()) return print_help(arguments);
  if (const auto valid = output.validate(arguments, {}); !valid) return report(valid.error(), "selftest");
  if (const auto valid = run.validate(arguments, {}); !valid) return report(valid.error(), "selftest");

  const auto rows = sendworthy::run_selftest(run.jobs);
  const bool passed =
      !rows.empty() && std::all_of(rows.begin(), rows.end(), [](const auto& row) { return row.passed; });
  const int code = passed ? kExitPass : kExitFail;
  const auto written =
      deliver(output.path, output.format == "json" ? as_json(rows, passed) : table(rows, output.quiet));
  return written ? code : std::max(code, report(written.error(), "selftest"));
}

}  // namespace sendworthy::cli
