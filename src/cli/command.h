// The commands of the program. Each takes the arguments after its name and returns the exit code.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::cli {

using Words = std::vector<std::string>;

int run_check(const Words& arguments);
int run_measure(const Words& arguments);
int run_compare(const Words& arguments);
int run_plan(const Words& arguments);
int run_deliver(const Words& arguments);
int run_watch(const Words& arguments);
int run_listen(const Words& arguments);
int run_desk(const Words& arguments);
int run_merge(const Words& arguments);
int run_rules(const Words& arguments);
int run_explain(const Words& arguments);
int run_selftest(const Words& arguments);

struct Command {
  std::string_view name;
  std::string_view operands;
  std::string_view summary;  ///< one line for the list of commands
  int (*run)(const Words& arguments);
};

[[nodiscard]] std::span<const Command> commands();

}  // namespace sendworthy::cli
